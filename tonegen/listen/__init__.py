"""What a string plays, heard from its sound: which one, at what pitch, and how sure that is."""
