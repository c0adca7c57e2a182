"""The gas in the bore: humid air at its temperature and pressure."""
