"""The command line: a thin shell; each command imports what it needs when it is called."""
