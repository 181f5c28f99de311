"""The demo: a whole simulated kitchen, real ports, a real broker, a real store, one command."""
