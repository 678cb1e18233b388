"""How many bytes a file of a kind may have: far more than a person writes, less than what hangs."""

# Ten thousand marks with eighteen digits a coordinate take a megabyte.
MARKS_BYTES = 4_000_000
# What lies beside marks or results and describes them.
SIDECAR_BYTES = 1_000_000
TEXT_BYTES = 32 * 1024 * 1024
SURFACE_BYTES = 1024 * 1024 * 1024
# What the page sends at once; a file in it takes up to twice its bytes as JSON.
REQUEST_BYTES = 4 * 1024 * 1024
DROPPED_FILE_BYTES = REQUEST_BYTES // 2
