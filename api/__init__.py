"""The outside: HTTP, live stream, page, command line, supervisor. Knows no physics."""
