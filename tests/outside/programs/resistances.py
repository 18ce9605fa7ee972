"""Resistances of networks: networkx beside scipy, both printed."""

import json
import sys

import networkx
import numpy
import scipy.linalg

answers = []
for question in json.load(sys.stdin):
    graph = networkx.Graph()
    graph.add_nodes_from(range(question["points"]))
    for a, b, ohms in question["edges"]:
        graph.add_edge(a, b, r=ohms)
    laplacian = numpy.zeros((question["points"], question["points"]))
    for a, b, ohms in question["edges"]:
        laplacian[a, a] += 1 / ohms
        laplacian[b, b] += 1 / ohms
        laplacian[a, b] -= 1 / ohms
        laplacian[b, a] -= 1 / ohms
    inverse = scipy.linalg.pinvh(laplacian)
    for a, b in question["pairs"]:
        answers.append(
            [
                networkx.resistance_distance(
                    graph, a, b, weight="r", invert_weight=True
                ),
                float(inverse[a, a] + inverse[b, b] - 2 * inverse[a, b]),
            ]
        )
json.dump(answers, sys.stdout)
