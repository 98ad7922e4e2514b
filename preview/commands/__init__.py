"""The commands of `covecast`, one module each: parse, call, print."""
