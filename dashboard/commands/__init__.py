"""The commands, a module a topic. Each holds an `app` that cli.py joins; what a command needs is imported where it runs,
so that `fitledger --help` starts at once."""
