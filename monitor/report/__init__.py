"""The morning report: `build` makes one value from facts, `text` and `html` only draw it. No clock."""
