"""One module a command: NAME, HELP, add_arguments(parser) and run(args)."""
