"""Results as documents for programs and as files for people."""
