"""A class: one question from the teacher's page to many phones, the answers shown together."""
