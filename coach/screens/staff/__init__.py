"""The staff in character cells: computed here, as plain data, and only shown by the widgets."""
