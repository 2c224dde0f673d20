"""How the network of `analysis.core.corrector` is made. See README.md; never imported at run time."""
