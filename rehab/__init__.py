"""Follow-up and occlusion-therapy planning for children after cataract surgery."""

__version__ = "0.1.0"
