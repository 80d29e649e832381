"""The commented plan that a new experiment starts with."""

from __future__ import annotations

__all__ = ["PLAN_TEMPLATE"]

PLAN_TEMPLATE = """\
# The plan of one experiment: which knobs may move, what a good cone is, what printing costs.
#
# Edit it, then run `coneloop check`: it lists everything that is wrong at once. Lines that start
# with '#' are remarks; examples among them can be used by taking the '#' away. Numbers have a
# decimal point, words stand in quotes. Names (after the dots in [brackets]) are letters, digits
# and underscores; formulas use them.
#
# CAUTION. Uncured resin harms skin, eyes and lungs; wash solvent burns and its vapour is harmful;
# curing lamps give UV light that harms eyes and skin; hot nozzles burn and heated plastic gives
# off fumes; sanding dust must not be breathed in; loud test tones harm hearing and can start
# suddenly; amplifiers and printers are connected to the mains. Follow the safety data sheets of
# your materials, the makers' instructions and your local rules, and leave mains wiring to a
# licensed person. This program knows nothing of the hazards in front of you.

name = "small radio, 65 mm cone"    # what is being designed
seed = 1                            # where random steps start: the same seed repeats them exactly
# note = "Started in spring."       # any remark; tables below take one too
# goal = "trade"                    # for two or three metrics that pull apart: seek cones along
                                    # the whole front between them; else "score", one number; each
                                    # of these metrics needs poor and good, weights play no part


# --- VARIABLES: the knobs -----------------------------------------------------------------------
# kind = "choice"      words in no order:             levels = [...]
# kind = "ordered"     words or numbers in order:     levels = [...]
# kind = "continuous"  any decimal number in steps:   low, high, step
# kind = "integer"     whole numbers:                 low, high (step is 1 unless given)
# The order of the tables is the order of the columns everywhere.

[variables.process]
kind = "choice"
levels = ["resin", "filament"]
setup_minutes = 25                  # what changing it between two plates costs you, in minutes
per = "plate"                       # "plate": all cones of one print job share it; else "cone"
cautions = { resin = "resin", filament = "filament" }   # cautions on the print card, by level:
                                    # "resin", "filament" or "other"
# were = { resin = "grey resin" }   # levels that you renamed: what earlier cones have on record

[variables.layer_height]
kind = "ordered"
levels = [0.05, 0.10, 0.20]         # numbers from low to high; or words, such as ["thin", "thick"]
unit = "mm"
per = "plate"
label = "layer"                     # the name to show; by default the name without underscores

[variables.wall_thickness]
kind = "continuous"
low = 0.4                           # low and high can both be printed
high = 1.2
step = 0.1                          # counted from low, must reach high; without it: 101 values
unit = "mm"
# tolerance = 0.02                  # how far the printer strays from a setting (a number): the
                                    # standard deviation of what it really makes, in the knob's
                                    # unit; `coneloop recommend` allows for it; 0 unless given
# scale = "log"                     # for knobs that act by ratio (1, 10, 100); else "linear"

[variables.ribs]
kind = "integer"
low = 0
high = 6

[variables.exposure]
kind = "continuous"
low = 1.5
high = 4.0
step = 0.25
unit = "s"
only_when = { process = ["resin"] } # the knob exists only then; several parents must all agree

[variables.cure_time]
kind = "continuous"
low = 0
high = 40
step = 5
unit = "min"
only_when = { process = ["resin"] }
before = 10                         # what earlier cones had, when a knob joins later
# was = "uv_time"                   # the name it had when earlier cones were recorded
note = "Under the UV lamp, after washing and drying."


# --- DERIVED quantities: what physics says matters; the model may use them as extra inputs ------
# Formulas know + - * / % ** ( ), comparisons, and, or, not, `a if c else b`, in, and the functions
# min max abs sqrt log log10 exp floor ceil round. They may use variables and derived quantities
# that stand further up.

[derived.wall_layers]
formula = "wall_thickness / layer_height"
# unit = ""


# --- RULES: what the printer or the part cannot do; every one must hold -------------------------
# A rule that touches a knob which does not exist in a recipe says nothing about that recipe.

[rules]
wall_is_three_layers = "wall_layers >= 3"
# thick_walls_print_coarse = "layer_height >= 0.1 if wall_thickness > 1.0 else ribs <= 4"


# --- METRICS: what judges a cone ----------------------------------------------------------------
# from = "response" | "distortion" | "impulse" | "sweep" | "hand": which file gives it; "hand" is
# typed in. measure = what is computed (by default the metric's own name): level, lower_limit,
# upper_limit, deviation, deviation_sd, breakup, breakup_q, thd_peak, thd_peak_hz, hd2..hd5, decay.
# goal = "maximise" | "minimise" | "target" | "watch" ("watch" is recorded, no more).
# poor and good: the values at which you would score it 0 and 1. A single metric with a goal needs
# neither; several need both, for the score weighs them against each other.

[metrics.upper_limit]
from = "response"
measure = "upper_limit"
unit = "kHz"                        # kHz or Hz, s or ms; poor, good and limit use the same
drop_db = 10                        # option: how far below its reference the range ends
band = [200, 20000]                 # option: search only between these frequencies, in Hz
# smooth = 12                       # option: 1/12 octave smoothing first; hides narrow troughs
goal = "maximise"
poor = 5.0
good = 14.0
weight = 2                          # counts double in the score
limit = ">= 4.0"                    # hard limit: a cone outside it cannot win; also <=, >, <

[metrics.breakup]
from = "response"
unit = "kHz"
band = [1500, 15000]                # look between these only: lower down a cone of this size moves
                                    # as one piece, and a peak is the driver's own resonance or
                                    # the room; without a band the search begins at 300 Hz
prominence_db = 3                   # option: how far a peak must stand out
goal = "maximise"
poor = 2.0
good = 9.0
# shape = 2                         # above 1: the score rises late; below 1: early

[metrics.mass]
from = "hand"
unit = "g"
goal = "target"                     # good is the target
good = 2.0
poor = [1.2, 3.2]                   # score 0 at both ends; or one number: the distance from good
# was = "weight"                    # the name it had; `coneloop recompute` takes its values over

# [metrics.thd_peak]
# from = "distortion"
# thd_of = "fundamental"            # option: or "total"
# goal = "watch"


# --- EFFORT: what a recipe costs; formulas in which a missing knob counts as 0 ------------------

[effort]
minutes = '''
    20 / layer_height * (exposure + 7) / 60 + cure_time
    if process == 'resin' else 8 / layer_height
'''
money = "0.06 * mass if process == 'resin' else 0.03 * mass"
currency = "EUR"

[effort.assume]                     # numbers known only after printing, for planning ahead
mass = 2.0


# --- SESSIONS at the test platform --------------------------------------------------------------
# Keep one cone as the reference and measure it again in every session, so that drift of the rig
# can be seen and taken out. Give its number once it is printed.

[sessions]
# reference_cone = 1


# --- AGEING: judge cones as they are expected to be later ---------------------------------------
# Keep some cones and measure them again with `measure --light-hours` or `--age-days`. With one of
# these keys the score, `next` and every answer judge each metric as it is expected at that age, as
# far as the kept cones tell; until they do, that is said and metrics count as measured.

[ageing]
# light_hours = 500                 # after so many hours in the light, or else
# age_days: so many days after printing; one of the two


# --- RIG: how your files are written ------------------------------------------------------------
# One table a kind of file: response, distortion, impulse, sweep. All keys are optional. What is
# stated is not guessed, and a file that is written otherwise is refused. It is kept with each
# file: another rig next year leaves older files as they were read. Only a key that was not stated
# before is tried on older files too, by `coneloop recompute`.

# [rig.files.response]
# columns = ["frequency", "level"]
# unit = "kHz"                      # of the first column
# decimal = ","                     # decimal mark
# delimiter = ";"                   # or "tab", "space"
# encoding = "latin-1"

# [rig.files.sweep]
# sweep = "20:20000:10"             # the excitation: start Hz, stop Hz, seconds; not needed where
#                                   # the sidecar that `coneloop sweep` wrote lies beside the file
# sensitivity_dbfs = -26.0          # what 94 dB SPL reads; see `coneloop listen --calibrator`
# drive_volts = 2.0                 # at the driver; levels are then stated for 2.83 V,
# distance_m = 0.5                  # and for 1 m; both also under [rig.files.response]
# channel = 1                       # channel of the microphone, counted from 1
# loopback = 2                      # channel that carries the stimulus itself
# rate = 48000                      # samples a second, where the file does not say
"""
"""A complete, valid plan (an invented example) whose remarks explain every key."""
