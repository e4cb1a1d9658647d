"""What a tracker recorded of movement and stress, and when it was worn."""
