"""Ammonia: what the fish give off, and the share of it that is un-ionised (NH3), the form that harms them.

All amounts are as nitrogen (mg of N), fresh water only. A test kit that reads as NH3 shows 1.216 times as much
(derived: 17.031 / 14.007, the weights of NH3 and N).
"""

from allocator.husbandry.ranges import must_lie

KELVIN_AT_0_C = 273.15
"""Exact by definition of the degree Celsius."""

PKA_FIXED, PKA_PER_KELVIN = 0.09018, 2729.92
"""
Emerson, Russo, Lund & Thurston 1975, J. Fish. Res. Board Can. 32:2379-2383; the paper was not seen, its constants
are as later works quote them. Some print 2727.92, which makes the share 1.5 % too large at 25 degrees C and pH 8;
the tests settle which is right.
"""

COLDEST_C, WARMEST_C = 0.0, 50.0
"""Range of the measurements behind the formula, as stated in documentation that quotes Emerson et al. 1975."""

LOWEST_PH, HIGHEST_PH = 6.0, 10.0
"""Range of the tables in Emerson et al. 1975 (from memory)."""

NITROGEN_GIVEN_OFF = 0.092
"""
Ammonia nitrogen for each part of feed protein. Timmons & Ebeling, Recirculating Aquaculture (book not seen; the
factor as quoted in public calculations). Where it comes from, from memory: 0.16 of protein is nitrogen, 0.80 of
it taken up, 0.80 of that given off again, 0.90 of that as ammonia = 0.09216.
"""

MG_PER_G = 1000.0


def pka(temperature_c: float) -> float:
    """Return the pH at which half of the ammonia is un-ionised.

    Parameters
    ----------
    temperature_c
        0 to 50 degrees C, fresh water.

    Raises
    ------
    ValueError
        Outside that range: the formula is not carried further than its measurements.

    Source
    ------
    Emerson et al. 1975, see `PKA_FIXED`.
    """
    must_lie("water temperature", temperature_c, COLDEST_C, WARMEST_C, "degrees C")
    return PKA_FIXED + PKA_PER_KELVIN / (temperature_c + KELVIN_AT_0_C)


def un_ionised_share(temperature_c: float, ph: float) -> float:
    """Return the share of total ammonia that is un-ionised, 0 to 1.

    Parameters
    ----------
    temperature_c
        0 to 50 degrees C, fresh water. In salty water the share is smaller.
    ph
        6 to 10.

    Raises
    ------
    ValueError
        Outside these ranges.

    Source
    ------
    Emerson et al. 1975, see `PKA_FIXED`.
    """
    must_lie("pH", ph, LOWEST_PH, HIGHEST_PH)
    return float(1 / (1 + 10 ** (pka(temperature_c) - ph)))


def total_ammonia_mg_per_day(feed_g_per_day: float, protein_share: float, dry_share: float = 1.0) -> float:
    """Return the total ammonia, in mg of nitrogen a day, that comes from the feed that is eaten.

    Uneaten feed and dead plants add to it and are not counted here.

    Parameters
    ----------
    feed_g_per_day
        Feed as given, grams a day, 0 or more.
    protein_share
        Share of the feed's dry matter that is protein, 0 to 1; for dry feed, what the label says.
    dry_share
        Share of the feed that is not water, 0 to 1: 1 for dry feed, far less for live and frozen feed.

    Raises
    ------
    ValueError
        Outside these ranges; a protein of 45 is a percentage, not a share.

    Source
    ------
    Timmons & Ebeling, see `NITROGEN_GIVEN_OFF`.
    """
    must_lie("feed", feed_g_per_day, 0, unit="g a day")
    must_lie("share of protein", protein_share, 0, 1)
    must_lie("dry share of the feed", dry_share, 0, 1)
    return feed_g_per_day * dry_share * protein_share * NITROGEN_GIVEN_OFF * MG_PER_G


def most_total_ammonia(limit_un_ionised: float, temperature_c: float, ph: float) -> float:
    """Return the total ammonia at which its un-ionised part reaches a limit, in the unit of the limit.

    Parameters
    ----------
    limit_un_ionised
        Most un-ionised ammonia, mg of nitrogen a litre, 0 or more.
    temperature_c
        0 to 50 degrees C, fresh water.
    ph
        6 to 10.

    Raises
    ------
    ValueError
        Outside these ranges.

    Source
    ------
    Derived: limit / share, the share by Emerson et al. 1975, see `PKA_FIXED`.
    """
    must_lie("limit of un-ionised ammonia", limit_un_ionised, 0, unit="mg a litre")
    return limit_un_ionised / un_ionised_share(temperature_c, ph)
