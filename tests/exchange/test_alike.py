"""Like places taken together: their links are what property paths over the links by place give.

The paths are SPARQL 1.1 (W3C Recommendation, 2013), and pyoxigraph follows them: nothing of ours does.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from kgraph.exchange import formats, rdf
from kgraph.fits.graph import Graph
from tests.outside.folders import random_folder, write
from tests.support import graph_of_folder

PREFIX = "PREFIX k: <urn:kgraph:term:> "
GOES = "(k:sameAs|k:replaces)*/k:takenAt|k:equalSize/k:takenAt|k:sameAs*/k:originalAt/k:likeAt*/k:fitsAt"
"""How a part comes to a place."""
REFUSED = "(k:sameAs*|k:sameAs*/k:originalAt/k:likeAt*)/k:refusedAt"
"""How a part is refused at a place."""
PATHS = {
    "originalAmong": "?one a k:Part ; k:sameAs*/k:originalAt/k:among ?other",
    "goesAmong": f"?one a k:Part ; ({GOES})/k:among ?other",
    "fitsAmong": "?one a k:LikePlaces ; ^k:among/k:fitsAt/k:among ?other",
    "disputedAmong": f"""
      {{ ?one a k:Part ; ({GOES})/k:among ?other . ?one ({REFUSED})/k:among ?other }} UNION
      {{
        ?one a k:LikePlaces ; (^k:among/k:fitsAt/k:among)? ?other .
        ?one ^k:among/(k:likeAt*|k:likeAt*/^k:originalAt/k:sameAs*)/k:refusedAt/k:among ?other
      }}""",
    "ofSet": "?one a k:LikePlaces ; ^k:among/k:ofSet ?other",
    "atPosition": "?one a k:LikePlaces ; ^k:among/k:atPosition ?other",
}
"""Each link between ?one and ?other -> what it stands for."""
OF_PLACES = {"ofSet", "atPosition"}
"""Links that single places have too."""


def store_of(graph: Graph) -> Any:
    pyoxigraph = pytest.importorskip("pyoxigraph")
    store = pyoxigraph.Store()
    store.load(b"".join(rdf.ntriples(formats.Export(graph, places=True))), pyoxigraph.RdfFormat.N_TRIPLES)
    return store


def pairs(store: Any, where: str) -> set[tuple[str, str]]:
    found = store.query(f"{PREFIX}SELECT DISTINCT ?one ?other {{ {where} }}")
    return {(row["one"].value, row["other"].value) for row in found}


def test_each_link_stands_where_its_paths_lead(tmp_path: Path) -> None:
    found = dict.fromkeys(PATHS, 0)
    for seed in range(60):
        write(random_folder(seed, 30), tmp_path / str(seed))
        store = store_of(graph_of_folder(tmp_path / str(seed)))
        together = pairs(store, "?one k:among ?like . ?other k:among ?like")
        assert together == pairs(store, "?one a k:Place ; k:likeAt* ?other"), seed
        for link, path in PATHS.items():
            only = "?one a k:LikePlaces . " if link in OF_PLACES else ""
            stands = pairs(store, f"{only}?one k:{link} ?other")
            assert stands == pairs(store, path), (seed, link)
            found[link] += len(stands)
    assert min(found.values()) > 0, found


def test_a_place_that_nothing_links_to_another_is_alone(tmp_path: Path) -> None:
    said = "- takes: K-114\n  in: Larkfield LK-40\n  position: volume knob\n"
    (tmp_path / "a.yaml").write_text(said, encoding="utf-8")
    store = store_of(graph_of_folder(tmp_path))
    (one,) = pairs(store, "?one k:among ?other")
    assert one == (
        "urn:kgraph:place:s:larkfieldlk40:volumeknob",
        "urn:kgraph:alike:s:larkfieldlk40:volumeknob",
    )
    assert pairs(store, "?one k:goesAmong ?other") == {("urn:kgraph:part:k114", one[1])}
