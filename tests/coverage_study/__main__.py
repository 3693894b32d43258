from tests.coverage_study.table import main

if __name__ == "__main__":
    main()
