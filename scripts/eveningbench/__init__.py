"""Evenings at the piano in accelerated time, held against what a sensible coach makes of them."""
