"""What is written of records: corrections, notes, exports. Files that came in never change."""
