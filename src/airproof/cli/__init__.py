"""The command line: one file per subcommand; no rule lives here."""
