"""From tape values to a head: the sheet, the fit, advice."""
