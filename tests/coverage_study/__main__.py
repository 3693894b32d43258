from tests.coverage_study.table import main

main()
