"""Still drawings, for paper and for a page without a script."""
