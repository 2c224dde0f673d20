"""How the network of `analysis.core.corrector` is made (README.md); not used at run time."""
