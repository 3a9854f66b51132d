module enbloc

go 1.26
