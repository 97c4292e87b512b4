"""Tubes that come apart: swing-out door bars, how they swing, and tubes with bolted sleeves."""
