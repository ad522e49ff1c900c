"""The colours of what is measured, the same on the result picture and wherever else it is drawn."""

# Okabe & Ito, "Color Universal Design" (2008): colours that readers with colour vision deficiency tell apart;
# shapes and dashes differ too, so that a grey print can be read
FILE_COLOUR = "#E69F00"  # orange
CANAL_COLOUR = "#56B4E9"  # sky blue
AXIS_COLOUR = "#F0E442"  # yellow: the coronal axis, and its continuation
CHORD_COLOUR = "#CC79A7"  # pink: the chord from the departure point, and the angle
GAP_COLOUR = "#D55E00"  # vermilion
BALL_COLOUR = "#009E73"  # green
# of the canals of one image, the first as above; two of these stand for other things too, so that a name
# stands beside each canal where there are several
CANAL_COLOURS = (CANAL_COLOUR, "#009E73", "#0072B2", "#CC79A7")
LANDMARK_COLOUR = "#FFFFFF"  # white: stands on any line
