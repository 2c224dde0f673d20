"""Every word for what the computer knows: measures, moments, readings, codes.

Templates, mail, API examples and PDF take their words here, so that a figure reads the
same everywhere. ± is two standard deviations: the truth lies inside 19 times out of 20.
"""
