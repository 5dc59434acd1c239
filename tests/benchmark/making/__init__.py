"""Takes whose notes are known: invented lines, sampled instruments, plain synthesis."""
