package peers.validator;

import java.util.ArrayList;
import java.util.HashMap;
import java.util.List;
import java.util.Map;
import java.util.Objects;
import org.hl7.fhir.r4.model.ElementDefinition;
import org.hl7.fhir.r4.model.StructureDefinition;

/**
 * What a profile's differential asks and its snapshot does not. HL7's generator drops elements that stand in the
 * wrong order without a word; the profile would then pass anything.
 */
final class SnapshotLoss {

    private SnapshotLoss() {}

    static List<String> find(StructureDefinition profile, StructureDefinition whole) {
        if (whole == null || !whole.hasSnapshot()) {
            return List.of("everything: none could be generated");
        }
        Map<String, ElementDefinition> kept = new HashMap<>();
        whole.getSnapshot().getElement().forEach(element -> kept.put(element.getId(), element));
        List<String> lost = new ArrayList<>();
        for (ElementDefinition asked : profile.getDifferential().getElement()) {
            ElementDefinition got = kept.get(asked.getId());
            if (got == null) {
                lost.add(asked.getId());
            } else {
                compare(asked, got, lost);
            }
        }
        return lost;
    }

    private static void compare(ElementDefinition asked, ElementDefinition got, List<String> lost) {
        if (asked.hasMin() && asked.getMin() != got.getMin()) {
            lost.add(asked.getId() + " min");
        }
        if (asked.hasMax() && !asked.getMax().equals(got.getMax())) {
            lost.add(asked.getId() + " max");
        }
        if (asked.hasBinding()
                && !(Objects.equals(asked.getBinding().getValueSet(), got.getBinding().getValueSet())
                        && asked.getBinding().getStrength() == got.getBinding().getStrength())) {
            lost.add(asked.getId() + " binding");
        }
        if (asked.hasFixed() && !asked.getFixed().equalsDeep(got.getFixed())) {
            lost.add(asked.getId() + " fixed value");
        }
        if (asked.hasPattern() && !asked.getPattern().equalsDeep(got.getPattern())) {
            lost.add(asked.getId() + " pattern");
        }
        for (var rule : asked.getConstraint()) {
            if (got.getConstraint().stream().noneMatch(other -> other.getKey().equals(rule.getKey()))) {
                lost.add(asked.getId() + " rule " + rule.getKey());
            }
        }
    }
}
