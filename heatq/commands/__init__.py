"""The subcommands of ``heatq``; each is thin and calls the library."""
