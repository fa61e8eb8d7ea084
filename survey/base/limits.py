"""How far requirements and options go: in plans, commands and library alike. Each command loads it, so nothing more."""

MAX_INVERTERS, MAX_SPOTS = 500_000, 1_000_000
"""In a plan: measured, 155 MB and 1.3 s for so many inverters, 340 MB and 2.3 s for so many gateways and spots."""
MAX_LINKS = 5_000_000
"""Links that are kept whole at a time: measured, 0.36 kB each without obstacles, so 2 GB."""
MAX_PAIRS = 50_000_000
"""Pairs of inverter and spot, or of two inverters, whose chance and margin are kept: up to 32 bytes each, so 1.6 GB."""
MOST_RELAYS = 20
"""A message passes no more inverters than this."""
MOST_GATEWAYS = 1_000
"""No more gateways than this are asked for."""
DRAWS = 1_000
"""How many simulation runs, unless asked otherwise: two standard errors of a share are then 3 points of a hundred."""
MOST_DRAWS = 100_000
"""No more simulation runs than this: two standard errors are then a third of a point; more would only cost time."""
TIME_LIMIT_S = 60.0
"""How long a proof for several gateways may be looked for, unless asked otherwise: a judgement. [s]"""
CABLE_M, MOST_CABLE_M = 10.0, 100.0
"""Longest cable to an antenna, unless asked otherwise and at most: assumptions, what somebody would draw. [m]"""
MOST_CABLE_LOSS_DB_PER_M = 10.0
"""More than any coaxial cable loses: thin RG-174 loses about 1 dB/m at 868 MHz (from memory). [dB/m]"""
MIN_FREQUENCY_MHZ, MAX_FREQUENCY_MHZ = 30.0, 30_000.0
"""Frequencies for which losses of materials can be asked: VHF to SHF, as the sources of the losses reach. [MHz]"""
MIN_EXPONENT_SD, MAX_EXPONENT_SD = 0.001, 10.0
"""Standard deviations of the path loss exponent before readings: from as good as known to as good as unknown."""
MAX_NEXT = 50
"""Links that are named to be read next: more than a day's work at new spots. A judgement."""
MIN_HEIGHT_M, MAX_HEIGHT_M = -100.0, 1000.0
"""Heights at which coverage can be asked for: beyond any site of solar modules. [m]"""
MIN_WIDTH_CM, MAX_WIDTH_CM = 12.0, 120.0
"""Widths of a picture: from half a page to a poster (A0 is 84 cm wide). Judgements. [cm]"""
DPI, MIN_DPI, MAX_DPI = 130, 50, 600
"""Dots per inch of a picture: sharp on screens and small to send, unless asked otherwise; coarse; fine print."""
MIN_POINTS, MAX_POINTS = 4, 1_000_000
"""How many points of coverage can be asked for: a grid of two by two, to what a few minutes can compute."""
SITE_TIME_S, SITE_MEMORY_MB = 60.0, 1_000.0
"""What one of many sites may take, unless asked otherwise: a hundred times what a site of 80 inverters takes, and what
two at a time leave free on a small machine. Judgements. [s, MB]"""
MAX_WORKERS = 256
"""Processes for many sites at most: more cores than a machine has. A judgement."""
