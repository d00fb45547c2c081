from __future__ import annotations

import pytest

from heatq.errors import DataError
from heatq.steels import Steel, read_certificate, read_certificates


@pytest.fixture
def write(tmp_path):
    def write_(text: str | bytes, name: str = "certificates.csv"):
        file = tmp_path / name
        file.write_bytes(text if isinstance(text, bytes) else text.encode())
        return file

    return write_


EXPECTED = Steel(C=0.41, Mn=0.86, Cr=1.02, Mo=0.21, grain_size=8.0, name="A-17")


@pytest.mark.parametrize(
    "text",
    [
        "heat,C,Mn,Cr,Mo,grain_size\nA-17,0.41,0.86,1.02,0.21,8\n",
        "HEAT;c;MN;CR;mo;Grain Size\nA-17;0,41;0,86;1,02;0,21;8\n",
        "heat;C;Mn;Cr;Mo;grain_size\nA-17;0.41;0.86;1.02;0.21;8,0\n",
        "name\tC\tMn\tCr\tMo\tgrain-size\nA-17\t0,41\t0,86\t1,02\t0,21\t8\n",
        "\ufeffheat,C %,Mn (%),Cr [wt%],%Mo,grain_size\r\nA-17,0.41%,0.86 %,1.02,0.21,8\r\n",
        "# our works\n\nheat , C , Mn , Cr , Mo , grain_size\n\n , , , , ,\n A-17 , 0.41 , 0.86 , 1.02 , 0.21 , 8 \n\n",
        '"heat","C","Mn","Cr","Mo","grain_size"\n"A-17","0.41","0.86","1.02","0.21","8"\n',
        "heat,C,Mn,Cr,Mo,Si,grain_size\nA-17,0.41,0.86,1.02,0.21,,8\n",
        "heat,C,Mn,Cr,Mo,V,grain_size,comment,date\nA-17,0.41,0.86,1.02,0.21,-,8,hot,2020-02-30\n",
        "heat,C,Mn,Cr,Mo,grain_size,Sn,As (ppm),Fe\nA-17,0.41,0.86,1.02,0.21,8,0.012,80,balance\n",
        "heat,C,Mn,Cr (ppm),Mo,grain_size\nA-17,0.41,0.86,10200,0.21,8,,\n",
    ],
)
def test_ways_to_write_csv(write, text):
    (steel,) = read_certificates(write(text))
    assert steel.replace(source="") == EXPECTED


def test_units_and_austenitizing_temperature(write):
    file = write("heat,C,N (ppm),austenitizing_temperature (degC)\nA-17,0.41,85,855\n")
    steel = read_certificate(str(file))
    assert (steel.N, steel.austenitizing_temperature) == (0.0085, 855.0)
    assert steel.source == "certificate certificates.csv, line 2"


def test_heats_without_a_name_get_their_line(write):
    first, second = read_certificates(write("C,Mn\n0.4,0.8\n\n0.5,0.7\n"))
    assert (first.name, second.name) == ("certificates line 2", "certificates line 4")


TOP = 'name = "A-17"\ngrain_size = 8\n[composition]\nC = 0.41\nMn = 0.86\nCr = 1.02\nMo = 0.21\n'


@pytest.mark.parametrize(
    "text",
    [
        TOP,
        TOP.replace("name", "heat"),
        TOP.replace("[composition]\n", ""),
        TOP.replace("C =", "c =").replace("Mn =", "MN =").replace("name", "Name"),
        '[heat]\nname = "A-17"\ngrain_size = 8\ncomposition = { C=0.41, Mn=0.86, Cr=1.02, Mo=0.21, As=0.01 }\n',
        '[[heat]]\nname="A-17"\ngrain_size=8\ndate=2020-01-31\n[heat.composition]\nC=0.41\nMn=0.86\nCr=1.02\nMo=0.21\n',
    ],
)
def test_ways_to_write_toml(write, text):
    assert read_certificate(write(text, "heat.toml")).replace(source="") == EXPECTED


def test_several_heats(write):
    csv = write("heat,C\nA-17,0.41\nB-4,0.38\nB-4,0.39\n")
    toml = write('[[heat]]\nname = "A-17"\nC = 0.41\n[[heat]]\nname = "B-5"\nC = 0.39\n', "heats.toml")
    assert [steel.C for steel in read_certificates(csv)] == [0.41, 0.38, 0.39]
    assert read_certificate(csv, heat="A-17").C == 0.41
    assert read_certificate(toml, heat="B-5").C == 0.39
    with pytest.raises(
        DataError, match=r"certificates\.csv holds 3 heats: A-17, B-4, B-4\. Say which one: heat='A-17'"
    ):
        read_certificate(csv)
    with pytest.raises(DataError, match=r"unknown heat in heats\.toml: 'A-71'\. Did you mean 'A-17' or 'B-5'"):
        read_certificate(toml, heat="A-71")
    with pytest.raises(DataError, match=r"certificates\.csv holds the heat 'B-4' 2 times"):
        read_certificate(csv, heat="B-4")


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("heat,C,Cr\nA,0.4,1.0\nB,0.4,abc\n", r"^certificates\.csv, line 3, column Cr: 'abc' is not a number\.$"),
        ("heat,C,Cr\n\n# x\nA,0.4,abc\n", r"line 4, column Cr: 'abc'"),
        ("heat,C,Al\nA,0.4,<0.005\n", r"line 2, column Al: '<0\.005' is not a number\. .*below the detection limit"),
        ("heat,C,Cr\nA,40,1.0\n", r"line 2, column C: C = 40 % is outside 0 to 2\.2 %.*did you mean 0\.40\?"),
        ("heat,C,Cr %\nA,0.4,-1\n", r"line 2, column Cr %: Cr = -1 % is outside 0 to 6 %"),
        ("heat,C,N (ppm)\nA,0.4,2000\n", r"column N \(ppm\): N = 0\.2 % is outside 0 to 0\.1 %"),
        ("heat,C,Mn\nA,nan,1\n", r"line 2, column C: 'nan' is not a number"),
        ("heat,C,Sn\nA,0.4,0.4\n", r"line 2, column Sn: Sn = 0\.4 % is outside 0 to 0\.05 %\. No model here knows"),
        ("heat,C,grain_size\nA,0.4,25\n", r"column grain_size: grain_size = 25 ASTM number .*not micrometres"),
        ("heat,C,austenitizing_temperature\nA,0.4,1550\n", r"line 2, column austenitizing_temperature: .*Fahrenheit"),
        (
            "heat,C,austenitizing_temperature (degF)\nA,0.4,1550\n",
            r"line 1, .*give the temperature in degC, not 'degf'",
        ),
        ("heat,C,Mn (ppb)\nA,0.4,1\n", r"line 1, column Mn \(ppb\): the unit 'ppb' is not known"),
        ("heat,Mn,Cr\nA,0.8,1.0\n", r"line 1: there is no column C; .*Columns: heat, Mn, Cr"),
        ("heat,C,Mn\nA,,1.0\n", r"line 2 \(A\): carbon \(C\) is missing"),
        ("heat,C,Mn\nA,0,0\n", r"line 2 \(A\): the steel 'A' has no composition"),
        (
            "heat,C,Crom\nA,0.4,1.0\n",
            r"line 1, column Crom: unknown column 'Crom'\. Did you mean 'Cr'.*allowed: comment",
        ),
        ("heat,C,\nA,0.4,1.0\n", r"line 1, column without a name"),
        ("heat,C,Mn,mn\nA,0.4,1,1\n", r"line 1: the column Mn stands there 2 times"),
        ("heat,C,Mn\nA,0,41,0,86\n", r"line 2 has 5 cells, the header has 3\. For decimal commas .* semicolons"),
        ("heat;C;Mn\nA;0,41\n", r"line 2 has 2 cells, the header has 3\.$"),
        ("heat;C;Mn\nA;1.000,41;1\n", r"line 2, column C: '1\.000,41' is not a number"),
        ("A-17,0.41,0.86\n", r"line 1, column A-17: unknown column"),
        ("heat,C,Mn\n", r"certificates\.csv is empty but for its header"),
        ("", r"certificates\.csv is empty"),
        ("\ufeff \n\n", r"certificates\.csv is empty"),
        ("# only a comment\n", r"certificates\.csv is empty"),
        (b"heat,C\nA,0.4\n\xff\xfe,1\n", r"certificates\.csv, line 3: not UTF-8 text"),
        ('heat,C\nA,"0.4\n', r"certificates\.csv, line 2: unexpected end of data"),
    ],
)
def test_faults_of_a_csv_file(write, text, message):
    with pytest.raises(DataError, match=message):
        read_certificates(write(text))


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", r"heat\.toml is empty"),
        ("C = 0,41\n", r"heat\.toml: not valid TOML: .*line 1"),
        ("C = 40\n", r"heat\.toml, key C: C = 40 % is outside 0 to 2\.2 %.*did you mean 0\.40"),
        ('C = "0.4"\n', r"heat\.toml, key C: '0\.4' is not a number"),
        ('C = 0.4\nAl = "<0.01"\n', r"heat\.toml, key Al: '<0\.01' is not a number\. .*detection limit"),
        ("C = 0.4\nCr = true\n", r"heat\.toml, key Cr: True is not a number"),
        ("C = 0.4\nCrom = 1\n", r"heat\.toml, key Crom: unknown key 'Crom'\. Did you mean 'Cr'"),
        ("C = 0.4\n[composition]\nC = 0.5\n", r"heat\.toml, key C: C is given twice"),
        ("composition = 0.4\n", r"heat\.toml: composition = 0\.4 must be a table"),
        ("Mn = 0.4\n", r"heat\.toml \(heat\): carbon \(C\) is missing"),
        ("[[heat]]\nC = 0.4\n[[heat]]\nMn = 0.8\n", r"heat\.toml, heat 2 \(heat 2\): carbon"),
        ("heat = []\n", r"heat\.toml: write each heat as a table \[\[heat\]\]"),
        ("grain_size = 8\n[[heat]]\nC = 0.4\n", r"heat\.toml: 'grain_size' stands beside \[heat\]"),
        ("C = 0.4\ngrain_size = 30\n", r"heat\.toml, key grain_size: grain_size = 30 ASTM number"),
    ],
)
def test_faults_of_a_toml_file(write, text, message):
    with pytest.raises(DataError, match=message):
        read_certificates(write(text, "heat.toml"))


def test_faults_of_the_path(tmp_path):
    with pytest.raises(DataError, match=r"nothing\.csv cannot be read: No such file"):
        read_certificate(tmp_path / "nothing.csv")
    (tmp_path / "folder.csv").mkdir()
    with pytest.raises(DataError, match=r"folder\.csv cannot be read"):
        read_certificate(tmp_path / "folder.csv")
    with pytest.raises(
        DataError, match=r"heat\.xlsx: a certificate is a \.toml, \.csv, \.tsv or \.txt file, not \.xlsx"
    ):
        read_certificate(tmp_path / "heat.xlsx")
