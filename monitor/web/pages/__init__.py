"""The pages, one a file: each a plain function of a visit. They draw facts and hand in what is said."""
