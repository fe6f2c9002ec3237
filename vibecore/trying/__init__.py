"""Something was tried while the engine ran and the phone recorded: did the engine notice?

The recording is parted at the moments when it was begun and undone. Second by second three things are read in
each part: engine speed, the whole shake, and the shake below the firing order, where cylinders show that they
differ. What changed for sure was noticed; if it was undone, it must have gone back too, or it was drift.
"""
