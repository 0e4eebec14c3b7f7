"""The palette as colour-blind readers see it, and its contrast on paper and on a dark screen."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from flipkit.charts.style import SHADES, VARIABLES, chart_config, style_variables

#: Linear RGB as it appears to dichromats.
SIMULATED = {
    "protanopia": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216], [-0.003882, -0.048116, 1.051998]],
    "deuteranopia": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413], [-0.011820, 0.042940, 0.968881]],
    "tritanopia": [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602], [0.004733, 0.691367, 0.303900]],
    "full colour vision": np.eye(3).tolist(),
}
MODES = ["light", "dark"]
#: Colours that meet in one picture and must be told apart.
VERDICTS = ["above", "below", "unsure"]
SERIES = ["series_1", "series_2", "series_3", "series_4"]
#: Distance in OKLab below which two patches begin to be confused at a glance.
APART = 0.12


def linear(shade):
    """Hexadecimal sRGB to linear RGB, 0 to 1 (IEC 61966-2-1)."""
    coded = np.array([int(shade[k : k + 2], 16) for k in (1, 3, 5)]) / 255
    return np.where(coded <= 0.04045, coded / 12.92, ((coded + 0.055) / 1.055) ** 2.4)


def luminance(shade):
    return float(np.array([0.2126, 0.7152, 0.0722]) @ linear(shade))


def contrast(first, second):
    """Contrast ratio of the accessibility guidelines, 1 to 21."""
    dark, light = sorted((luminance(first), luminance(second)))
    return (light + 0.05) / (dark + 0.05)


def oklab(rgb):
    """Linear RGB to OKLab, in which equal distances look about equal."""
    cones = np.array(
        [
            [0.4122214708, 0.5363325363, 0.0514459929],
            [0.2119034982, 0.6806995451, 0.1073969566],
            [0.0883024619, 0.2817188376, 0.6299787005],
        ]
    )
    lab = np.array(
        [
            [0.2104542553, 0.7936177850, -0.0040720468],
            [1.9779984951, -2.4285922050, 0.4505937099],
            [0.0259040371, 0.7827717662, -0.8086757660],
        ]
    )
    return lab @ np.cbrt(cones @ np.clip(rgb, 0, 1))


def distance(first, second, seen_by):
    seen = [oklab(np.clip(np.array(SIMULATED[seen_by]) @ linear(shade), 0, 1)) for shade in (first, second)]
    return float(np.linalg.norm(seen[0] - seen[1]))


def of(role, mode):
    return getattr(SHADES[role], mode)


@pytest.mark.published(source="machado-2009", where="table of matrices, severity 1.0", seen="secondary")
@pytest.mark.parametrize("seen_by", SIMULATED)
@pytest.mark.parametrize("mode", MODES)
@pytest.mark.parametrize("roles", [VERDICTS, SERIES], ids=["verdicts", "series"])
def test_colours_that_meet_stay_apart(roles, mode, seen_by):
    for first, second in itertools.combinations(roles, 2):
        apart = distance(of(first, mode), of(second, mode), seen_by)
        assert apart >= APART, f"{first} and {second} are {apart:.3f} apart with {seen_by}"


@pytest.mark.published(source="machado-2009", where="table of matrices, severity 1.0", seen="secondary")
def test_the_measure_sees_what_it_is_meant_to_see():
    # Red and green of about the same lightness: clear to most, nearly one colour with deuteranopia.
    assert distance("#c0392b", "#6a7d1f", "full colour vision") > 2 * distance("#c0392b", "#6a7d1f", "deuteranopia")
    assert distance("#c0392b", "#6a7d1f", "deuteranopia") < APART


@pytest.mark.published(source="wcag-contrast", where="relative luminance, contrast ratio", seen="secondary")
def test_contrast_is_21_between_black_and_white_and_1_between_equals():
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#777777", "#777777") == 1.0


@pytest.mark.published(source="wcag-contrast", where="criterion 1.4.3, text at least 4.5 to 1", seen="secondary")
@pytest.mark.parametrize("mode", MODES)
@pytest.mark.parametrize("role", ["ink", "quiet", "above", "below"])
def test_words_can_be_read(role, mode):
    assert contrast(of(role, mode), of("paper", mode)) >= 4.5


@pytest.mark.published(source="wcag-contrast", where="criterion 1.4.11, graphics at least 3 to 1", seen="secondary")
@pytest.mark.parametrize("mode", MODES)
@pytest.mark.parametrize("role", [*VERDICTS, *SERIES])
def test_marks_can_be_seen(role, mode):
    assert contrast(of(role, mode), of("paper", mode)) >= 3


@pytest.mark.published(source="wcag-contrast", where="criterion 1.4.3, text at least 4.5 to 1", seen="secondary")
@pytest.mark.parametrize("mode", MODES)
@pytest.mark.parametrize(
    ("words", "bar"),
    [("on_deep", "series_1"), ("on_bright", "series_2"), ("on_deep", "series_3"), ("on_bright", "series_4")],
)
def test_words_on_bars_can_be_read(words, bar, mode):
    ratio = contrast(of(words, mode), of(bar, mode))
    assert ratio >= 4.5, f"{ratio:.2f}"


def test_a_page_finds_each_role_by_its_light_colour():
    assert len(VARIABLES) == len(SHADES)


def test_style_variables_name_every_role():
    assert style_variables(dark=True).count("--") == len(SHADES)
    assert f"--below: {SHADES['below'].dark};" in style_variables(dark=True)


def test_the_config_uses_colours_of_the_theme_alone():
    def colours(value):
        if isinstance(value, dict):
            return [c for part in value.values() for c in colours(part)]
        return [value] if isinstance(value, str) and value.startswith("#") else []

    found = colours(chart_config())
    assert found
    assert set(found) <= set(VARIABLES)
