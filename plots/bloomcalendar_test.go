package plots

func sampleBloom() Figure           { return sampleMap() }
func bloomEdges() map[string]Figure { return nil }
