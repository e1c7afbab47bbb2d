"""The taut wire.

Takes scans, sweeps and raw signals of one occasion (and harmonics of a rotating coil); gives magnetic axes with covariance by
causes, corrections and gates, in the wire's frame or, through the surveyed ends, in the girder frame.
"""
