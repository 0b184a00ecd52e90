"""The face of the workbook: session, figures, notebook panels, job sheet, command line."""

__all__: list[str] = []
