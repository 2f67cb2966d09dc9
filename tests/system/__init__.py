"""Real processes, real sockets on loopback, a real terminal."""
