"""The dimensions of a wiring picture, in its own units: at natural size a unit is a pixel.

Everything that a conductor can meet lies on a grid of `GRID` units: two lines either coincide,
which the router forbids, or are at least that far apart.
"""

from typing import Final

GRID: Final = 15
PITCH: Final = 30  # between conductors where they are spread out in a box
TERMINAL_PITCH: Final = 60
TRACK: Final = 15  # between horizontal pieces in a box
RIBBON_PITCH: Final = 9  # between conductors within a sheath

MARGIN: Final = 20  # around the picture
BOX_MARGIN: Final = 15
BETWEEN_BOXES: Final = 30
BETWEEN_RIBBONS: Final = 14

SMALL: Final = 13.0  # the smallest letters
NORMAL: Final = 14.0
LARGE: Final = 16.0

# From the channel of a box outwards, where a cable enters: the conductors are spread out, and its
# sheath begins `SPREAD` further out.
SPREAD_OUT: Final = 90
SPREAD: Final = 26
# Measured from where they are spread out, towards the channel.
SLEEVES: Final = (9, 29)  # the two rows of written colours
BAND: Final = 46
MARK: Final = 64
CAP: Final = 80
LOOSE: Final = 60
ASIDE: Final = 14  # of a mark, where the word for loose stands on the other side
CABLE_ZONE: Final = SPREAD_OUT + SPREAD + 16

CHANNEL_EDGE: Final = 8
TERMINAL_DROP: Final = 20  # from the channel to the body of a device
TERMINAL_AT: Final = 9  # from the edge of the body to its terminals
BODY_HEIGHT: Final = 152
STRIP: Final = 32  # the part of the body with the names of the terminals
FEED_HEIGHT: Final = 112
DEVICE_ZONE: Final = TERMINAL_DROP + BODY_HEIGHT + 12
FEED_ZONE: Final = TERMINAL_DROP + FEED_HEIGHT + 12
NAME_ZONE: Final = 48
CABLE_LABEL_ZONE: Final = 40
WIDEST_CABLE_LABEL: Final = 160
LONGEST_BOX_NAME: Final = 190
#: The widest picture: shown at 1200 pixels, its smallest letters then have 12.
PAGE_WIDTH: Final = 1300
