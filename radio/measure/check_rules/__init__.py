"""Rules of the pre-flight checks, one module for each group."""
