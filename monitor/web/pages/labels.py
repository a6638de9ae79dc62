"""Labels for the pots: a name and a square that opens the tree's page; made to be printed."""

from starlette.responses import Response

from monitor import links
from monitor.web.labels import labels_of
from monitor.web.visit import Visit


def labels(visit: Visit) -> Response:
    """One label a tree."""
    frame = visit.frame
    base = links.base_url(frame.guard.settings.web)
    trees = sorted(frame.guard.book.standing.values(), key=lambda tree: tree.name)
    return frame.page(visit, "labels.html", "Labels", "workings", labels=labels_of(trees, base), base=base)
