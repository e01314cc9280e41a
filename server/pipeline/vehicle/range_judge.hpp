#pragma once
/// Tells a dictionary of the right sizes whose fields stand in another order, or are scaled otherwise, by what it makes
/// of the packets: values that no sensor can say, from the first packet on.
///
/// A packet cannot be when at least half of a row's channels that have a valid range are outside it, two of them or one
/// farther than its range is wide; or, of a rocket, with a fix farther than kFarthest_m from the pad. One sensor among
/// several that is broken from the start is a sensor. A row that says that there is no fix is not judged, nor are
/// packets that come without a period. A kind of packet with kProvenCount in a row that can be is proven for good: what
/// goes wrong later is a sensor, behind a reboot in flight too. One with kUnfitCount that cannot be, over kUnfit_s,
/// before that does not fit its description.
#include <cstddef>
#include <cstdint>
#include <string>
#include <vector>

#include "protocol/decode/decoder.hpp"
#include "protocol/dictionary/dictionary.hpp"
#include "shared/site.hpp"
#include "shared/vehicle.hpp"

namespace turnstone {

class RangeJudge {
  public:
    static constexpr std::size_t kProvenCount = 10;
    static constexpr std::size_t kUnfitCount = 5;
    static constexpr double kUnfit_s = 3.0;
    static constexpr double kFarthest_m = 1e6; ///< the local plane is 78 km above the ground there

    /// All must outlive it.
    RangeJudge(const Dictionary& dictionary, const Vehicle& vehicle, const Site& site);

    /// A packet that counts. False: estimators must not have it.
    [[nodiscard]] bool take(const DecodedPacket& packet, std::int64_t t_ns);
    /// The values of the newest packet of its kind that cannot be, such as "Altitude MSL -699560.9 m"; empty while it
    /// fits, or while nobody knows. `packet`: of Dictionary::packets.
    [[nodiscard]] const std::vector<std::string>& unfit(std::size_t packet) const { return kinds_[packet].said; }

  private:
    struct Kind {
        std::size_t good = 0; ///< in a row
        std::size_t bad = 0;
        std::int64_t t_bad_ns = 0; ///< of the first
        bool proven = false;
        std::vector<std::string> said;
    };
    /// By Dictionary::tables; -1: it has none.
    struct Places {
        int latitude = -1, longitude = -1, dimensions = -1;
    };
    [[nodiscard]] bool lacks_fix(const DecodedRow& row) const noexcept;
    [[nodiscard]] std::vector<std::string> impossible(const DecodedRow& row) const;
    [[nodiscard]] double from_pad_m(const DecodedRow& row) const;

    const Dictionary* dictionary_;
    const Vehicle* vehicle_;
    const Site* site_;
    std::vector<Places> places_;
    std::vector<Kind> kinds_; ///< by Dictionary::packets
};

} // namespace turnstone
