"""A shop's own checks as tables: a file of data declares what is asked, how it is judged and what is said."""
