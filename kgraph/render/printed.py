"""Pages of HTML that stand alone, for paper: one template each, with the head that all share."""

from __future__ import annotations

from typing import Any

from kgraph.render.terminal import visible


def page_of(template: str, title: str, pictures: bool = False, **shown: Any) -> str:
    """The page of a template; text of the data is escaped, and shown as it would be on a terminal.

    `pictures`: whether pictures stand in it, as data of the page itself.
    """
    import jinja2
    from markupsafe import Markup

    templates = jinja2.Environment(
        loader=jinja2.PackageLoader("kgraph.render", "templates"),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        # What a macro made is markup already, of texts that went this way.
        finalize=lambda v: visible(v) if isinstance(v, str) and not isinstance(v, Markup) else v,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made = templates.get_template(template).render(title=title, pictures=pictures, **shown)
    return made.rstrip() + "\n"
