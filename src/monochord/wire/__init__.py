"""The taut wire: scans, sweeps and raw signals in; magnetic axes with covariance and corrections out."""
