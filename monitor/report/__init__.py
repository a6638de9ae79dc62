"""The morning report: `build` makes one value from facts, `text` and `html` only draw it; no files, no clock."""
