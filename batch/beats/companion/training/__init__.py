"""Makes the network that hears beats in a backing: ``band`` plays material, ``fit`` finds the weights."""
