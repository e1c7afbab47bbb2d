"""The survey: sightings in; adjusted targets and wire ends with covariance, reliability and rejections out."""
