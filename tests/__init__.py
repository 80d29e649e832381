"""Tests of coneloop; a package so that tests can share `tests.functions`."""
