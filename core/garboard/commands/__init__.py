"""The subcommands of `garboard`, one module each. A module is imported when its command is asked for."""
