"""Loading plugins, and guarding the program against them."""
