"""The practitioner's page on this machine."""
