"""What a job says, for people and programs: readable account, figures, handover book, plain JSON."""
