-- Fragment: true for a foot (a row of {feet} with exam and side) that the selection asks for.
($side IS NULL OR list_contains(CAST($side AS VARCHAR[]), {feet}.side))
AND ($arch_height IS NULL OR list_contains(CAST($arch_height AS VARCHAR[]), {feet}.arch_height))
AND ($forefoot IS NULL OR list_contains(CAST($forefoot AS VARCHAR[]), {forefoot_class}))
