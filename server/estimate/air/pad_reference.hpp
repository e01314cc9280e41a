#pragma once
/// The pressure and temperature the day's atmosphere is tied to.
///
/// Until the vehicle's barometer has been seen at rest, the site file's pad pressure holds (or the standard atmosphere
/// at the pad's height, with a large 1-sigma). Then the barometer's own mean on the pad takes over, so that its bias
/// cancels in every height above the pad. At rest means: the phase detector sees nothing, and the means of two
/// half-second windows (or of two samples each, where they come more slowly) two and a half seconds apart agree within
/// kStill_pa. The reference comes from the older window, so that the start of a liftoff never gets into it, and follows
/// the weather with a time constant of kFollow_s. After a move (the drive to the pad, say) kMoved_s of rest set a new
/// reference.
///
/// Temperature: the site file's, else the mean of the vehicle's sensor on the pad (self-heated: 1-sigma 4 K), else the
/// standard atmosphere's (10 K). Site temperature 1-sigma 1 K.
#include <cstdint>
#include <optional>

#include "server/estimate/air/air_data.hpp"
#include "server/estimate/math/history.hpp"
#include "shared/site.hpp"
#include "shared/vehicle.hpp"

namespace turnstone::estimate {

class PadReferenceTracker {
  public:
    static constexpr double kStill_pa = 15.0;
    static constexpr double kFollow_s = 20.0;
    static constexpr double kMoved_s = 15.0;
    static constexpr double kMoved_pa = 60.0;

    PadReferenceTracker(const Site& site, const SensorNoise& sensors);

    /// A healthy pressure; `temperature_k` may be NaN. `quiet`: nothing says that the vehicle flies. True when the
    /// reference moved so far that heights jump.
    bool pressure(std::int64_t t_ns, double pressure_pa, double temperature_k, bool quiet);

    [[nodiscard]] const DayAtmosphere& atmosphere() const noexcept { return atmosphere_; }
    /// Vehicle's barometer minus the site's pressure when the reference was taken; NaN when the site gives none.
    [[nodiscard]] double disagreement_pa() const noexcept { return disagreement_pa_; }

  private:
    struct Point {
        std::int64_t t_ns;
        double pressure_pa;
        double temperature_k;
    };
    [[nodiscard]] std::optional<Point> mean(std::int64_t from_ns, std::int64_t to_ns) const;
    void take(const Point& mean, double fraction);

    PadReference pad_;
    DayAtmosphere atmosphere_;
    std::optional<double> site_pressure_pa_;
    bool site_temperature_;
    bool from_vehicle_ = false; ///< the vehicle's own barometer gave the reference
    double disagreement_pa_;
    double period_s_ = 0; ///< from sample to sample; 0: not known
    std::int64_t t_checked_ns_ = 0;
    std::int64_t still_since_ns_ = 0; ///< 0: not still
    History<Point> points_{512};
};

} // namespace turnstone::estimate
