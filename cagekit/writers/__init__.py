"""Writers: one module per file format; each takes finished geometry and writes one file."""
