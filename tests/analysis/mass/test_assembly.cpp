// Mass, centre and inertia against rational arithmetic, and their uncertainties against the propagation of the GUM.
#include <catch2/catch.hpp>

#include <cmath>
#include <vector>

#include "server/analysis/mass/assembly.hpp"
#include "tests/support/reference.hpp"

using namespace turnstone::analysis;
using turnstone::test::reference_cases;

namespace {

std::vector<PointedPart> parts_of(const nlohmann::json& inputs) {
    std::vector<PointedPart> parts;
    for (const auto& one : inputs.at("parts")) {
        const auto place = one.at("position_m").get<std::vector<double>>();
        const auto own = one.at("inertia_own_xx_yy_zz_xy_xz_yz").get<std::vector<double>>();
        PointedPart part;
        part.mass_kg = one.at("mass_kg").get<double>();
        part.position_m = {place[0], place[1], place[2]};
        part.inertia_kg_m2 << own[0], -own[3], -own[4], -own[3], own[1], -own[5], -own[4], -own[5], own[2];
        parts.push_back(part);
    }
    return parts;
}

} // namespace

TEST_CASE("what is put together weighs, balances and turns as its parts say") {
    const auto cases = reference_cases("numerics2/mass.json", "assembly");
    REQUIRE(cases.size() >= 4);
    for (const auto& one : cases) {
        INFO(one.at("id"));
        const auto& expected = one.at("expected");
        const Assembly whole = assemble(parts_of(one.at("inputs")));
        CHECK(whole.mass_kg == Approx(expected.at("mass_kg").get<double>()).epsilon(1e-12));
        const auto principal = expected.at("principal_moments").get<std::vector<double>>();
        for (int i = 0; i < 3; ++i) {
            const auto row = static_cast<std::size_t>(i);
            CHECK(whole.centre_m[i] ==
                  Approx(expected.at("centre_of_mass_m")[row].get<double>()).epsilon(1e-12).margin(1e-15));
            CHECK(whole.principal_moments_kg_m2()[i] == Approx(principal[row]).epsilon(1e-10).margin(1e-12));
            for (int k = 0; k < 3; ++k)
                CHECK(whole.inertia_kg_m2(i, k) ==
                      Approx(expected.at("inertia_tensor_about_centre_kg_m2")[row][static_cast<std::size_t>(k)]
                                 .get<double>())
                          .epsilon(1e-12)
                          .margin(1e-15));
        }
    }
}

TEST_CASE("what each weighing leaves open adds up as the GUM has it, with and without a common scale") {
    const auto cases = reference_cases("numerics2/mass.json", "uncertainty");
    REQUIRE(cases.size() == 2);
    for (const auto& one : cases) {
        INFO(one.at("id"));
        const auto& in = one.at("inputs");
        std::vector<PointedPart> parts;
        for (std::size_t i = 0; i < in.at("names").size(); ++i) {
            PointedPart part;
            part.mass_kg = in.at("mass_kg")[i].get<double>();
            part.position_m.x() = in.at("x_m")[i].get<double>();
            part.inertia_kg_m2(1, 1) = in.at("transverse_inertia_own")[i].get<double>();
            part.mass_sigma_kg = in.at("u_mass")[i].get<double>();
            part.station_sigma_m = in.at("u_x")[i].get<double>();
            part.pitch_inertia_sigma_kg_m2 = in.at("u_inertia")[i].get<double>();
            parts.push_back(part);
        }
        const Assembly whole = assemble(parts, in.at("correlation_between_masses").get<double>());
        const auto& expected = one.at("expected");
        CHECK(whole.centre_m.x() == Approx(expected.at("centre_x_m").get<double>()).epsilon(1e-12));
        CHECK(whole.inertia_kg_m2(1, 1) == Approx(expected.at("transverse_inertia").get<double>()).epsilon(1e-12));
        CHECK(whole.mass_sigma_kg == Approx(expected.at("u_mass_kg").get<double>()).epsilon(1e-9));
        CHECK(whole.station_sigma_m == Approx(expected.at("u_centre_m").get<double>()).epsilon(1e-9));
        CHECK(whole.pitch_inertia_sigma_kg_m2 == Approx(expected.at("u_inertia").get<double>()).epsilon(1e-9));
    }
}

TEST_CASE("nothing weighs nothing and balances nowhere") {
    const Assembly nothing = assemble({});
    CHECK(nothing.mass_kg == 0);
    CHECK(std::isnan(nothing.centre_m.x()));
}
