"""How bright the segments of a display's digits are, and the ground they stand on."""

__all__ = ["flicker", "moving_light", "segments", "still_light", "usual_ground"]
