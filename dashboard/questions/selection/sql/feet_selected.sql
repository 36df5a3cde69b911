-- Fragment: true for a foot that the selection asks for, by its side, its arch height and its forefoot class.
($side IS NULL OR list_contains(CAST($side AS VARCHAR[]), {side}))
AND ($arch_height IS NULL OR list_contains(CAST($arch_height AS VARCHAR[]), {arch_height}))
AND ($forefoot IS NULL OR list_contains(CAST($forefoot AS VARCHAR[]), {forefoot_class}))
