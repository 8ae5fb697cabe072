"""Pictures that somebody means ill with, or that went wrong on the way."""
