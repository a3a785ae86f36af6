//! Statistics that know nothing of behaviour: ranks, quantiles, product limit, bootstrap.
