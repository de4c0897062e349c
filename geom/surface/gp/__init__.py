"""The wall's Gaussian process: kernels, prior, posterior, hyperparameters."""
