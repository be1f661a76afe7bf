"""Jobs brought together into one data set, and questions across them."""
