"""Three families of rendered photographs that share nothing: `calibration`, `development`, `test`.

In the order of the work: `world` (lines, makes, cameras of a family), `art` and `draw` (printed
faces), `plan` (which cases, by a balanced design), `history` (what happened to an item), `pack`,
`box`, `covers` (geometry), `optics`, `lamps` (light), `photo` (a render and its truth), `sensor`
(light to codes), `seller` (codes to the file that an offer shows), `texts` and `manifest` (what is
written), `independence` and `sanity` (what is shown about it), `targets`, `regression`.
The command is `demo/studio/render_set.py`. Nothing here is used by the demonstration's own photos.
"""
