"""The style sheet of the report: a letter on paper, for mail programs, phones and the dark; pure.

Colours are written out (mail programs know no variables), nothing is fetched, and without it the page still
reads in order.
"""

from monitor.report.palette import DARK, LIGHT, Palette

PHONE_PX = 620

_SHAPE = """\
html{-webkit-text-size-adjust:100%}
body{margin:0;padding:1.2rem 1rem 2rem;font:16px/1.5 Georgia,'Times New Roman',serif;overflow-wrap:anywhere}
main,footer{max-width:46rem;margin:0 auto}
h1{font-size:1.45rem;line-height:1.3;font-weight:normal;margin:.2rem 0 .6rem;text-wrap:pretty}
h2{font-size:1rem;letter-spacing:.06em;text-transform:lowercase;font-variant:small-caps;margin:2rem 0 .6rem;\
padding-top:.5rem;border-top:3px double}
h3{font-size:1rem;font-style:italic;font-weight:normal;margin:1rem 0 .3rem}
p,ul,ol{margin:.3rem 0 .6rem}
ul{padding-left:1.1rem}
ol.asks{list-style:none;padding:0;counter-reset:ask}
ol.asks li{counter-increment:ask;position:relative;padding:.5rem .8rem .5rem 2.6rem;margin:0 0 .5rem;\
border-left:3px solid}
ol.asks li::before{content:counter(ask);position:absolute;left:.9rem;top:.35rem;font-size:1.3rem;\
font-style:italic}
ol.asks p{margin:0}
table{border-collapse:collapse;width:100%;font-size:.94rem}
caption{position:absolute;left:-10000px}
th,td{text-align:left;vertical-align:top;padding:.4rem .8rem .4rem 0;border-bottom:1px solid;\
font-weight:normal}
thead th{font-size:.85rem;font-style:italic}
tbody th{font-weight:bold}
.mark{white-space:nowrap}
.shape{display:inline-block;width:1.2em}
.quiet{font-size:.92rem}
figure{margin:.6rem 0 1rem}
img{display:block;max-width:100%;height:auto;border:1px solid}
footer{margin-top:2rem;padding-top:.6rem;border-top:3px double;font-size:.9rem}
"""
_PHONE = """\
.wide thead{position:absolute;left:-10000px}
.wide,.wide tbody,.wide tr,.wide th,.wide td{display:block}
.wide tr{padding:.5rem 0;border-bottom-width:1px;border-bottom-style:solid}
.wide th,.wide td{border-width:0;padding:.1rem 0}
.wide td[data-head]::before{content:attr(data-head) ": ";font-style:italic}
.wide td.bare{display:none}
"""


def style_sheet() -> str:
    """All of it."""
    return (
        f"{_SHAPE}{_colours(LIGHT)}@media (max-width:{PHONE_PX}px){{{_PHONE}}}"
        f"@media (prefers-color-scheme:dark){{{_colours(DARK)}}}"
    )


def _colours(palette: Palette) -> str:
    rules = [
        f"body{{background:{palette.paper};color:{palette.ink}}}",
        f"h2,footer{{border-color:{palette.rule}}}",
        f"th,td,tr{{border-color:{palette.rule}}}",
        f"img{{border-color:{palette.edge};background:{LIGHT.paper}}}",
        f".quiet,thead th,footer,h3,td[data-head]::before{{color:{palette.quiet}}}",
        f"ol.asks li{{background:{palette.sheet};border-color:{palette.edge}}}",
        f"ol.asks li::before{{color:{palette.quiet}}}",
        *(f".{tone}{{color:{colour}}}" for tone, colour in palette.tones.items()),
    ]
    return "".join(f"{rule}\n" for rule in rules)
