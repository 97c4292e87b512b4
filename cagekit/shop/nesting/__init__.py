"""Plates for the cutting table: drawings, letters, nesting on sheets."""
