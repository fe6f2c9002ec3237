"""A page of paper: one self-contained HTML file, its pieces, and how it prints.

No network, no script: a page that holds a customer's name must not call anywhere, so its own policy forbids
it. Everything that came from a person or a file is escaped.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from html import escape

from vibecore.units import printed

STYLE = """
body{font:16px/1.45 system-ui,sans-serif;color:#1F2328;max-width:46rem;margin:2rem auto;padding:0 1rem}
h1{font-size:1.7rem;margin-bottom:.2rem}h2{font-size:1.2rem;margin:1.6rem 0 .4rem;break-after:avoid}
p,li{text-wrap:pretty}p{margin:.3rem 0}small,.quiet{color:#505A64}table{border-collapse:collapse;width:100%}
th,td{text-align:left;padding:.3rem .5rem;border-bottom:1px solid #C9CED4;vertical-align:top}
body{print-color-adjust:exact;-webkit-print-color-adjust:exact}
body{font-variant-ligatures:none;overflow-wrap:anywhere}th{min-width:5em}td:first-child{min-width:7em}tr,li,.verdict,.caution{break-inside:avoid}thead{display:table-header-group}
h3{font-size:1rem;margin:1.1rem 0 .3rem;break-after:avoid}ul{margin:.3rem 0;padding-left:1.2rem}
.verdict{border-left:6px solid #0072B2;padding:.5rem .9rem;margin:.8rem 0;background:#EAF4FB}
.verdict{font-size:1.15rem}
figcaption,.small{color:#505A64;font-size:.9em}
.caution{border-left:6px solid #D55E00;padding:.4rem .8rem;background:#FDF1E9}
svg{display:block;width:100%;height:auto}figure{margin:.8rem 0;break-inside:avoid}li{margin:.15rem 0}
.wide{overflow-x:auto}@media screen and (max-width:600px){.wide table{min-width:36rem}h1{font-size:1.4rem}}
@media screen and (max-width:600px){figure{overflow-x:auto}figure svg{min-width:38rem}}
@media screen and (max-width:600px){figure::before,.wide::before{content:"Slide sideways to see the rest →"}}
figure::before,.wide::before{position:sticky;left:0;display:block;width:max-content;color:#505A64;font-size:.9em}
.narrow{display:none}@media screen and (max-width:600px){.fits::before{content:none}.fits svg{display:none}
.fits svg.narrow{display:block;min-width:0}}
@media print{.wide{overflow:visible}.apart{break-before:page}.apart>h2{margin-top:0}}
@media print{body{font-size:10.5pt;line-height:1.38;margin:0;padding:0;max-width:none}svg{max-height:58mm}}
@media print{h1{margin-top:0;font-size:18pt}h2{margin-top:1.1rem;font-size:13pt}@page{size:auto;margin:15mm}}
"""

POLICY = "default-src 'none'; style-src 'unsafe-inline'"  # nothing runs, nothing is fetched


def page(title: str, body: Sequence[str]) -> str:
    """The page whole."""
    return (
        '<!doctype html>\n<html lang="en"><head><meta charset="utf-8">'
        f'<meta http-equiv="Content-Security-Policy" content="{POLICY}">'
        '<meta name="viewport" content="width=device-width,initial-scale=1">'
        f"<title>{escape(title)}</title><style>{STYLE}</style></head><body>\n"
        + printed("\n".join(filter(None, body)))
        + '\n<p class="quiet">Made by vibecore from phone recordings.</p>\n</body></html>\n'
    )


def section(heading: str, content: str) -> str:
    return f"<h2>{escape(heading)}</h2>\n{content}" if content else ""


def text(lines: str) -> str:
    """A person's own lines as paragraphs."""
    return "".join(f"<p>{escape(line)}</p>" for line in re.split(r"\n+", lines.strip()) if line)


def bullets(items: Iterable[str]) -> str:
    listed = "".join(f"<li>{escape(item)}</li>" for item in items)
    return f"<ul>{listed}</ul>" if listed else ""


def figure(picture: str, caption: str = "", narrow: str = "") -> str:
    """A chart; on a phone it scrolls sideways, for whoever has no finger on it too. narrow: the same chart in
    its stead there, as wide as a phone."""
    told = f"<figcaption>{escape(caption)}</figcaption>" if caption else ""
    how = ' class="fits"' if narrow else ' tabindex="0"'
    return f"<figure{how}>{picture}{narrow}{told}</figure>"


def table(columns: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    head = "".join(f"<th>{escape(c)}</th>" for c in columns)
    body = "".join(f"<tr>{''.join(f'<td>{escape(cell)}</td>' for cell in row)}</tr>" for row in rows)
    whole = f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"
    return f'<div class="wide" tabindex="0">{whole}</div>'
