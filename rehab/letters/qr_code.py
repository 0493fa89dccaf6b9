"""Square codes for a phone's camera (ISO/IEC 18004), as drawings."""

from functools import lru_cache
from io import BytesIO

import segno


@lru_cache(maxsize=1)
def qr_svg(text: str) -> str:
    """The code of `text`, with the quiet margin that the standard asks for."""
    out = BytesIO()
    segno.make(text, error="m", micro=False, boost_error=False).save(
        out,
        kind="svg",
        scale=4,
        border=4,
        xmldecl=False,
        svgclass=None,
        lineclass=None,
        light="#fff",
    )
    return out.getvalue().decode()
