"""What people look at: entry page, sheet, report, board."""
