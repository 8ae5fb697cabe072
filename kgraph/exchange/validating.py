"""An export checked by SHACL against `shapes.ttl`.

Source: Shapes Constraint Language (W3C Recommendation, 2017).
"""

from __future__ import annotations

from kgraph.exchange import rdf
from kgraph.exchange.formats import Export
from kgraph.exchange.vocabulary import SHAPES, shipped
from kgraph.problems import CannotRun


def faults(export: Export) -> list[str]:
    """What the shapes find wrong with an export, a line each; raises CannotRun where pySHACL is missing."""
    return faults_of(b"".join(rdf.ntriples(export)))


def faults_of(ntriples: bytes) -> list[str]:
    """The same for a graph as N-Triples."""
    try:
        import pyshacl
    except ImportError:
        mend = "`pip install 'kgraph[shapes]'`"
        raise CannotRun(f"--validate needs pySHACL, which is not installed; {mend}") from None
    import rdflib

    data = rdflib.Graph(bind_namespaces="none").parse(data=ntriples, format="nt")
    shapes = rdflib.Graph(bind_namespaces="none").parse(data=shipped(SHAPES), format="turtle")
    _, report, _ = pyshacl.validate(data, shacl_graph=shapes, inference="none", do_owl_imports=False)
    sh = rdflib.Namespace("http://www.w3.org/ns/shacl#")
    found = []
    for result in report.subjects(rdflib.RDF.type, sh.ValidationResult):
        told = (report.value(result, sh[name]) for name in ("focusNode", "resultPath", "resultMessage"))
        node, path, says = (str(term) if term is not None else "" for term in told)
        found.append(f"{node}: {says}" + (f" ({path})" if path else ""))
    return sorted(found)
