"""Pages: entry page, paper sheet, report, wall card, lists of joints, board."""
