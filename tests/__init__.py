"""Tests; a package, so that tests can share the simulator and nothing shadows a name."""
