"""Takes heard on many machines, over storage that they share."""

from batch.cluster.hearing import Cluster

__all__ = ["Cluster"]
