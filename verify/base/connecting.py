"""Connected components of things that have numbers."""

from collections.abc import Iterable, Sequence


def connected(groups: Iterable[Sequence[int]], things: int) -> list[int]:
    """Return, for each of the things 0 to `things` − 1, the smallest thing of its component.

    All things of one of `groups` (none of which is empty) are in one component.
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
