"""What a job says, for people and programs: readable report, figures, handover book, plain JSON."""
