package fascicle.judge;

import java.util.List;
import java.util.Locale;
import java.util.Set;
import org.hl7.fhir.r5.elementmodel.Element;
import org.hl7.fhir.r5.model.CanonicalResource;
import org.hl7.fhir.r5.model.CanonicalType;
import org.hl7.fhir.r5.utils.validation.IResourceValidator;
import org.hl7.fhir.r5.utils.validation.IValidatorResourceFetcher;

/** Nothing is fetched from anywhere: a judge that works offline. */
final class NothingFetched implements IValidatorResourceFetcher {

    @Override
    public Element fetch(IResourceValidator validator, Object context, String url) {
        return null;
    }

    /** An address that cannot be looked up here is no fault of the resource. */
    @Override
    public boolean resolveURL(
            IResourceValidator validator,
            Object context,
            String path,
            String url,
            String type,
            boolean canonical,
            List<CanonicalType> targets) {
        return true;
    }

    @Override
    public byte[] fetchRaw(IResourceValidator validator, String url) {
        return new byte[0];
    }

    @Override
    public IValidatorResourceFetcher setLocale(Locale locale) {
        return this;
    }

    @Override
    public CanonicalResource fetchCanonicalResource(IResourceValidator validator, Object context, String url) {
        return null;
    }

    @Override
    public boolean fetchesCanonicalResource(IResourceValidator validator, String url) {
        return false;
    }

    @Override
    public Set<ResourceVersionInformation> fetchCanonicalResourceVersions(
            IResourceValidator validator, Object context, String url) {
        return Set.of();
    }
}
