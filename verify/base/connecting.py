"""What hangs together, among things that have numbers."""

from collections.abc import Iterable, Sequence


def connected(groups: Iterable[Sequence[int]], things: int) -> list[int]:
    """For each of so many things the smallest that `groups`, each of one thing or more, join it to.

    Things that are joined, by way of others too, have the same.
    """
    least = list(range(things))

    def root(thing: int) -> int:
        while least[thing] != thing:
            least[thing] = thing = least[least[thing]]
        return thing

    for first, *others in groups:
        for other in others:
            smaller, larger = sorted((root(first), root(other)))
            least[larger] = smaller
    return [root(thing) for thing in range(things)]
