"""Letters rendered from templates; the only home of Jinja2."""
