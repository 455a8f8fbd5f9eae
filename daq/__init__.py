"""From cable to recording: port, link, session, stroke programmes, survey, recorder."""
