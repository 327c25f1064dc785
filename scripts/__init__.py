"""Programs that measure the product; none of them is needed to use it."""
