"""From a held value to its verdict: corrections, uncertainty, criterion, probability."""
